"""From the fields seen to the load of the whole tape: range, classes, how many more."""
