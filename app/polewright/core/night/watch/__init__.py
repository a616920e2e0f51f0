"""The imaging run, watched for a mount that moves."""
