"""From findings to a plan: products, rates, costs, order, budget, dates."""
