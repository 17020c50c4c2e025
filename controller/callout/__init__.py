"""Tells people who are not there: reads records, decides who is told what and when, and sends mails and web calls.

A reader of the store in a process of its own. It commands nothing, and no chamber waits for it.
"""
