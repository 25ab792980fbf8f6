"""What the rig is, and what it may carry."""
