"""Papers made from a fitted session: the referral note, and the drawing of pressure up a leg."""
