"""The rearing log: broods, adults, samples and decisions in one file, and what they tell."""
