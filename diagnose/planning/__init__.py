"""From the standing to the next question, check or repair, and why that one."""
