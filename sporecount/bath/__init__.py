"""The egg bath: dilution, what practices say, cautions, and the contact timer."""
