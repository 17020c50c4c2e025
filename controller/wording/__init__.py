"""What people read, by key and language: the page's and the alarms' texts, and sentences of the record by their English
pattern. Below page, report and call-out, so that all three say the same words."""
