"""From the state of a night to what the window shows. Pure: no Qt, no clock; every text is made here."""
