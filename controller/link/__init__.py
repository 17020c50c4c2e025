"""Links: how words travel between the controller and its devices.

protocol.py   what every link can do: read, write, turn, close; the kinds of failure
device.py     the device file: address, limits, what its blocks carry
image.py      words <-> inputs and outputs, pure
layout.py     do points and device fit together?
pdu.py        Modbus requests and strict checks of their replies, pure
strict.py     one TCP connection with its own deadline over the whole reply
backoff.py    when a lost device may be tried again
modbus.py     the link over Modbus TCP
direct.py     the link to a device object in the same process
faulty.py     a link that fails on schedule, for tests and campaigns
liveness.py   does the device live, and does it hear us?
"""
