"""The events of the small templates of the tests: which happenings start a period again."""

EVENTS_TEXT = """\
[events]
sign_a = "restart"
sign_b = "note"
sign_c = "note"
death = "restart"
outbreak = "restart"
fish_added = "restart"
disturbance = "note"
dose_missed = "note"
"""
