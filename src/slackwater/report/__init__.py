"""What is shown to readers: words, sentences, the page; later sheets. From one assessment, so that all agree."""
