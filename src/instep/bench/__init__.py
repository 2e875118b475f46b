"""The bench: a page on this machine in which a rig is measured, built, posed, proven, moved and handed over.

`serve` starts it. The server holds the project's state and its files; the page draws, and evaluates the rig with the
JavaScript that Instep writes from the rig's program.
"""
