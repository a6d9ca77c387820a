"""Logistic fits: plain, penalised, mixed; limits, gaps, averages."""
