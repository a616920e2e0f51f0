"""The night in motion: engine, scheduler, worker thread. QtCore only, no widgets."""
