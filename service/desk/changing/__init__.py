"""Changes by hand: attempts struck, restored, reopened and noted, names put right, all undone.

In: numbers and what a person says. Out: changed rows, and beside each change what takes it back.
"""
