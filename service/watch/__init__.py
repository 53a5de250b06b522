"""From message to notice in two transactions: record what came, judge what it means."""
