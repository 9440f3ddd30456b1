/* Small comforts; every page works without them. */

// After a refused form the summary takes the focus, so that it is read first.
document.querySelector(".error-summary")?.focus();
