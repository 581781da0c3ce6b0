/* The tests of the core on the native board. The argument is the folder of the
 * protocol's golden files. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "check.h"

static const char *folder;
static FILE *file;
static char ahead[16384]; /* the line after the one returned last */
static bool any_ahead;

void check(bool is, const char *what, const char *source, int line)
{
	if (!is) {
		fprintf(stderr, "%s:%d: not so: %s\n", source, line, what);
		exit(1);
	}
}

/* Reads on to a line that is no comment and not empty. */
static void read_ahead(void)
{
	any_ahead = false;
	while (fgets(ahead, sizeof ahead, file) != NULL) {
		ahead[strcspn(ahead, "\r\n")] = '\0';
		if (ahead[0] != '\0' && ahead[0] != '#') {
			any_ahead = true;
			return;
		}
	}
}

void golden_open(const char *name)
{
	static char path[4096];

	snprintf(path, sizeof path, "%s/%s", folder, name);
	file = fopen(path, "rb");
	if (file == NULL) {
		perror(path);
		exit(1);
	}
	read_ahead();
	CHECK(any_ahead);
}

bool golden_next(struct golden *line)
{
	size_t key, used;

	if (!any_ahead) {
		fclose(file);
		return false;
	}
	key = strcspn(ahead, " ");
	CHECK(key < sizeof line->key);
	memcpy(line->key, ahead, key);
	line->key[key] = '\0';
	strcpy(line->rest, ahead + key);
	read_ahead();
	while (any_ahead && ahead[0] == ' ') {
		used = strlen(line->rest);
		CHECK(used + strlen(ahead) < sizeof line->rest);
		strcpy(line->rest + used, ahead);
		read_ahead();
	}
	return true;
}

size_t golden_bytes(const char *text, uint8_t *out, bool *more)
{
	size_t length = 0;
	char *end;

	*more = false;
	while (*text != '\0') {
		if (*text == ' ') {
			text++;
			continue;
		}
		if (strcmp(text, "..") == 0) {
			*more = true;
			break;
		}
		out[length++] = (uint8_t)strtoul(text, &end, 16);
		CHECK(end == text + 2);
		text = end;
	}
	return length;
}

int main(int argc, char **argv)
{
	if (argc != 2) {
		fprintf(stderr, "usage: %s FOLDER-OF-GOLDEN-FILES\n", argv[0]);
		return 2;
	}
	folder = argv[1];
	test_framing();
	test_exchanges();
	test_line();
	test_safety();
	test_fitted();
	test_measure();
	test_sweep();
	test_pattern();
	test_watch();
	return 0;
}
