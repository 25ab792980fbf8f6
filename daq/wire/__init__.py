"""Bytes from a port become samples with a time.

serial_port     the port: chunks of bytes, the alarm line, failures in words
known_port      the same adapter again after a replug, whatever its name
stream_cutter   chunks -> whole lines or frames, memory bounded
text_lines      lines -> rows of numbers, singly (line_layout) or run by run (line_runs)
packets         COBS frames -> rows of numbers (checksums)
board_clock     rows -> samples: wraps, restarts, repeats, strays, gaps (rows, silence, decoded)
sample_clock    when a sample was taken: board clock or number, fitted to the host's clock
decoders        the right decoder for a link
diagnosis       what is wrong when hardly a line is good
proposal        what the link should say, from what a board sends
"""
