"""What the person wants becomes what happens: the window's intents drive nights, rehearsals and replays."""
