"""The layers of a survey, and the formats that hold them."""
