"""Photos: lens, pose, and the mapping of pixels to any plane parallel to the card. Scans never import this."""
