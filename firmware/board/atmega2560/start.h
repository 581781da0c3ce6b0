/* What main starts, part by part. */
#ifndef START_H
#define START_H

void serial_start(void);
void converter_start(void);

#endif
