"""A rig that is not there: mechanics, converter, wire, faults. Imports nothing of daq.

THE MAP: the way of a pull, from a scenario to the bytes on a port.

    scenarios/       kinds of pull, as ranges to draw from
    rigs/            the rig file of the invented rig
    scenario         reads a scenario; the ranges of rig, crank and board
    simulated_rig    reads what it needs of a rig file
    specimen         what the wood and the fastener hold as they slide
    rig_mechanics    crank turns in, force at the specimen out, step by step
    crank            the person: strokes, rests, stop, winding back
    amplifier        force to the counts of each cell
    simulation       all of that for a session of pulls: samples, true force, truth
    weights          known weights put on and taken off, instead of pulls
    truth            what really happened, and the truth file
    wire_encoder     samples to text lines or packets
    faults           faults of board and cable: which there are, and where they come
    transmission     every line of a session, with its faults in it
    pty_board        the port, and the board that plays on it
    serving          a board in this process, or in one of its own
    practice         a rig cranked by a person, in a process of its own
"""
