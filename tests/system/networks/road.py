"""A poor road between the interfaces of a network namespace: frames come late, and some never.

It stands in for `tc netem` where the kernel has no such thing, and sees frames as a cable does.

    road.py DELAY_MS LOSS_PERCENT SEED INTERFACE...    carries frames between them until it is ended
    road.py --whole INTERFACE...                       lets a host's packets leave whole, with their checksums
"""

import ctypes
import fcntl
import heapq
import random
import select
import socket
import struct
import sys
import time

ETH_P_ALL = 3
SIOCETHTOOL = 0x8946
# What a virtual cable leaves undone because its other end would not look: checksums (TX), and cutting large
# packets (TSO, GSO). Here somebody looks. Numbers of linux/ethtool.h.
LEFT_UNDONE = [0x17, 0x1F, 0x24]


def whole(interface):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as some:
        for command in LEFT_UNDONE:
            value = bytearray(struct.pack("II", command, 0))
            pointer = (ctypes.c_char * len(value)).from_buffer(value)
            address = ctypes.addressof(pointer)
            try:
                fcntl.ioctl(some, SIOCETHTOOL, struct.pack("16sP", interface.encode(), address))
            except OSError:
                # One that the interface does not have is off.
                pass


def carry(delay, loss, seed, interfaces):
    chance = random.Random(seed)
    ends = []
    for interface in interfaces:
        end = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(ETH_P_ALL))
        end.bind((interface, 0))
        ends.append(end)
    print("open", flush=True)
    under_way, count = [], 0
    while True:
        wait = max(0, under_way[0][0] - time.monotonic()) if under_way else None
        for end in select.select(ends, [], [], wait)[0]:
            frame, (_, _, kind, *_) = end.recvfrom(65536)
            if kind == socket.PACKET_OUTGOING:
                continue
            for other in ends:
                if other is not end and chance.random() >= loss:
                    count += 1
                    heapq.heappush(under_way, (time.monotonic() + delay, count, other, frame))
        while under_way and under_way[0][0] <= time.monotonic():
            _, _, end, frame = heapq.heappop(under_way)
            try:
                end.send(frame)
            except OSError:
                # A cable that was pulled carries nothing.
                pass


if __name__ == "__main__":
    if sys.argv[1] == "--whole":
        for name in sys.argv[2:]:
            whole(name)
    else:
        carry(float(sys.argv[1]) / 1000, float(sys.argv[2]) / 100, int(sys.argv[3]), sys.argv[4:])
