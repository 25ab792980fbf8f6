"""From the wire to the record. No screens, no statistics.

THE MAP: the way of a sample, one line per file (a test holds it to the folder).

    samples          what a sample is: counts, two times, marks
    faults           everything that can go wrong, as a tree
    units            exact unit factors, and quantities as people type them
    drills           inch drills by number and letter
    wire/            bytes -> samples with a time
    force/           counts -> newtons at each cell -> specimen force
    rig/             what the rig is and what it may carry
    watch/           judging the force as it comes
    live_reading     the snapshot a screen may look at
    acquisition      the only threads
    record/          the file
"""
