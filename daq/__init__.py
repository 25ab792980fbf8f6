"""From the wire to the record. No screens, no statistics.

THE MAP: the way of a sample, in order, one line per file or room (a test holds it to the folder).

    samples           what a sample is: counts, two times, marks
    faults            everything that can go wrong, as a tree
    units             exact unit factors, and quantities as people type them
    drills            inch drills by name
    rig/              what the rig is and what it may carry
    wire/             bytes -> samples with a time
    sources           a board on a port, or a recording played again
    force/            counts -> newtons at each cell -> specimen force
    watch/            judging the force as it comes: stop, peak, phase
    live_chain        START HERE: the live rules in order, as one pure step
    raw_stretch       the last counts straight from a source, for weights
    recent_past       the last seconds, for the start of a pull and for the zero
    zero_keeper       the zeros of a session
    line_tally        bad lines, gaps and losses, counted
    wire_notes        the same, as a pull's file keeps it
    doubts            readings and boards that are not what they seem, in words
    specimen_list     what is on the rig, and what comes after it
    session_settings  what a person chose before the first sample
    pull_session      what happens between two reads; the start and end of each pull
    pull_summary      what the session itself says of a pull that ended
    live_reading      the snapshot a screen may look at
    live_view         a session as that snapshot
    acquisition       the only threads
    wall_anchor       the two clocks, and the one meeting of wall and monotonic
    run_header        all that is known before the first sample
    record/           the file
"""
