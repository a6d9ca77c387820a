"""Look at a station's own sheets and propose how they are to be read: guessing stays here."""
