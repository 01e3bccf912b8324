"""Points hung on the solved stations, and the shapes made from them."""
