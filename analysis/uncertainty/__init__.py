"""How far a force may be off: quantities, the law of propagation, trials, and the rig's budget.

quantity         an input: estimate, standard uncertainty, degrees of freedom, shape
propagation      one model, two roads: GUM first order, and Monte Carlo
specimen_force   the model and the budget of the maximum of a pull
"""
