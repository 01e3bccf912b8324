"""The computation sheet, one self-contained page."""
