"""Vanstock keeps a mobile technician's van stocked so that each booked job is finished on the first visit."""

__version__ = "0.1.0"
