"""What is true of the trade and of the contract, once each."""
