"""What stands on its own against odd input: labelled bad books, altered files, disks that fail."""
