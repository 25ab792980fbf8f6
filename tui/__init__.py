"""The one command and the console.

THE MAP of the console: the way of a key, and of a reading.

    cli, commands/   the command line; commands build the objects and decide nothing
    console          START HERE: keys to deeds, looks at the session, a sane terminal
    key_table        every key once: footer, help, finder and bindings
    deeds            what each key does
    session          what the console needs of a session; reopening, replay_session make others
    around           what a session brings along: rig, plan, folder, settings
    view             one frame, and how the rows are shared out (pure)
    screens/live     the live screen; the other screens stand below its strip (page)
    widgets/         drawing, pure: numbers, lines, braille, parts of pages
    wording          every word and digit, from a reading (pure)
    pace, sounds     how to turn the crank; which sound when (pure)
    day, child       recordings read by a helper process, looked at in between
"""
