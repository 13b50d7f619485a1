"""Input quantities, budgets, Monte Carlo, conformity and risk: pure, no await, port or clock."""
