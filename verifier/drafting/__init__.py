"""From track to a signaled junction: home signals, levers, rules and locks, written and proved."""
