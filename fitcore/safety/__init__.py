"""Whether a leg may be fitted at all: questions, ABPI, decisions, clearance, referral."""
