"""From readings, backlash and moves to the next correction, its size, its spread, and why."""
