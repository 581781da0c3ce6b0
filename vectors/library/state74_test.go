package library_test

// states74 are the models of the 7400 series' parts that remember.
var states74 = map[string]modelOf{}
