"""Training of the spore finder on rendered pictures (extra ``train``); not needed to count."""
