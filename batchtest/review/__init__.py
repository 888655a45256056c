"""Looking across many records: yields, first causes, margins, charts, comparisons. Reaches no bench."""
