"""The drawing for the draughtsman."""
