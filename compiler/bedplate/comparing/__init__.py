"""Two specs compared: what changes on the machine, what each change takes, and the work as a second graph.

Enters: two checked specs with their graphs. Leaves: a `Diff`, its report, and a `ChangeGraph`.
"""
