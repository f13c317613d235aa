"""Verdicts and what stands behind them: replayed situations, causes, mendings."""
