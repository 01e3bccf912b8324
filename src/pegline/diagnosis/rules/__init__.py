"""What is told of a survey beside its checks: rules of thumb, and what can hardly be."""
