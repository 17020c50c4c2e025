"""The controller killed at every call that reaches its disk, or refused there, and what is left looked at.

A real `dewhold run` in lockstep against a simulated chamber in this process, 20 ms a scan and with the recorder's
thread, under strace, which counts calls and acts at the n-th one. What somebody outside could read before the end
must be there after it; the next controller on the same folder must go on.
"""
