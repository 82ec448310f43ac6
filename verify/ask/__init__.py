"""Who asks the technician: the terminal, or a script. Both read the same owner; neither knows a rule."""
