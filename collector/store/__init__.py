"""The store of the readings: journal, packed archive, sealing between them, and one reader."""
