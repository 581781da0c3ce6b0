/* What the tests share. */
#ifndef CHECK_H
#define CHECK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Ends the program with the place and what was checked. */
#define CHECK(what) check((what), #what, __FILE__, __LINE__)
void check(bool is, const char *what, const char *file, int line);

/* A line of a golden file: `key rest`, continuation lines joined. */
struct golden {
	char key[32];
	char rest[16384];
};

/* Goes through a golden file in the folder given to the program. */
void golden_open(const char *name);
bool golden_next(struct golden *line);

/* Reads hexadecimal bytes; `..` ends them and sets more. */
size_t golden_bytes(const char *text, uint8_t *out, bool *more);

void test_framing(void);
void test_exchanges(void);
void test_line(void);
void test_safety(void);
void test_fitted(void);
void test_measure(void);
void test_sweep(void);
void test_pattern(void);
void test_watch(void);

#endif
