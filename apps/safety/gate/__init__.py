"""The answer at the gate: a code on a plate opens one small page, without an account."""
