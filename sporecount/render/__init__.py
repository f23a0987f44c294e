"""Pictures of tape samples with known truth, drawn step by step from a seed."""
