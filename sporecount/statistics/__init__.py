"""General statistics: proportions, clusters that are alike, permutation tests."""
