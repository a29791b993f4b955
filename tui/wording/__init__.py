"""What the merge desk and the verbs both say: each such sentence stands here once.

Both sides import from here and neither from the other. No screen, no file and no verb is known
here; how the sentences are laid out is for whoever shows them.
"""
