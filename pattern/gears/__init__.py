"""The mechanics of the pair: blank, tooth surfaces, tooth contact analysis, backlash, response."""
