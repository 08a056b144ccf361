"""One file for each step, in one line: r0001, r0002 …"""
