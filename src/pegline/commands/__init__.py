"""Everything beside the main job."""
