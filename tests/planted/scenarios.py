"""A small scenario as text, to be changed in one place by a test."""

SMALL = """
seed = 7

[network]
id = "small"
name = "Small invented network"
time_zone = "Europe/London"
first_month = "2025-01"
last_month = "2025-06"
exams = 900
sites = 3
operators = 7
devices = 4

[[events]]
kind = "technique_drift"
operator = "op-02"
start = "2025-03"
size = 0.2
"""
