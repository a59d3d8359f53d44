"""Electronics beside the processor: transducer, converter, over-pressure switch, watchdog."""
