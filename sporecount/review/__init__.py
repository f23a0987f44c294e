"""Review by hand: what people say of the tool's detections, kept beside what the tool said."""
