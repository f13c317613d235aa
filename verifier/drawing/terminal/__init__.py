"""The drawing in characters, fine or plain ASCII, for the terminal."""
