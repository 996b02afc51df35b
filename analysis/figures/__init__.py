"""Pictures: the ribbon of a meal and the plot of the days after it."""

from analysis.figures.meal_plot import plot_meal

__all__ = ["plot_meal"]
