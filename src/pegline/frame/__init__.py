"""What the survey is solved in: local, turned to north, or a grid."""
