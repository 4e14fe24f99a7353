"""Photos: lens, pose, and the mapping of pixels to any plane parallel to the card. Scans never import this.

In: measured places along squares of known size, what is known of the lens. Out: `CameraEstimate` with its covariance.
May import: errors, records, steady, seal, files, opencv, measure.
"""
