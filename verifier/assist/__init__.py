"""What an editor needs to know of a text and a place in it: pure functions, for the page and for
any editor. They work on texts with errors in them."""
