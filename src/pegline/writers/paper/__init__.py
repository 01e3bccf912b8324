"""The plan on paper: PDF, SVG and PNG from one display list."""
