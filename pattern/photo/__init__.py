"""Photo files to upright pixels: decoding, EXIF orientation, the pixel cap, quality gates."""
