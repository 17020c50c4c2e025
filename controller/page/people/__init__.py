"""Who may do what: accounts, sessions, tokens and the trail of what people changed. Files of the page's own."""
