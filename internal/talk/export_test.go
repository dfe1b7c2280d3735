package talk

// Answers is what is said of how a test is answered.
var Answers = answers
