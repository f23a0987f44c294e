"""From detections to counts, their intervals, and the load class."""
