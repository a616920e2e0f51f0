"""The night as a state machine: events, states, table, and the coach that says one thing to do."""
