"""From a field to a table of detections: found, parted, outlined, measured, told apart."""
