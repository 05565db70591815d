"""How good the rules and the planner are: cases drawn from the rules' own odds, walked with a simulated owner."""
