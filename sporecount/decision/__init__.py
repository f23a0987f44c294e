"""From the load of a tape to plain words, with the risk that the user chose."""
