"""Around the contact pattern: ratio, starting shim, backlash and runout, preload, shim stacks."""
