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
blocks.py     the requests of a device with other tables, and where its points stand in them, pure
codec.py      raw numbers of every type out of words, pure
bits.py       requests for coils and discrete inputs, pure
channel.py    one connection: one attempt a call, pauses, counts
ports.py      the requests of one device over Modbus TCP; inprocess.py  the same as calls in one process
panelimage.py the image of several devices, pure; panel.py  the link to them, each with its own health
reach.py      which image and link a set of devices takes
wirefaults.py what a wire can do to an exchange, and when; spoil.py  what becomes of words that arrive wrong, pure
faulty.py     a link, or one device of a panel, that fails on schedule
pulse.py      a coil that changes with every block, for a hard-wired relay
liveness.py   does the device live, and does it hear us?
"""
