"""The drawing before any format: layers, features, labels, the sheet."""
