"""What is drawn of a survey, in the metres of its frame."""
