package library_test

// states4000 are the models of the 4000 series' parts that remember.
var states4000 = map[string]modelOf{}
