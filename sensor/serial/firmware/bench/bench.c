/*
 * Runs the firmware on a simulated ATmega328P whose wires end at a simulated ADXL345, and
 * its serial line at a pseudo-terminal. For tests.
 *
 *     bench FIRMWARE.elf HZ  FREQUENCY AMPLITUDE RATE  [dead | deaf | warm]
 *
 * HZ is the processor's clock. The sensor feels a sine of FREQUENCY Hz and AMPLITUDE g
 * along x and 1 g along z, and takes RATE samples a second, which need not be the 800 that
 * its register says: a real one is off by some percent. Dead: no sensor answers. Deaf: its
 * INT1 wire is off. Warm: the sensor was running when the processor started, and holds a
 * sample that nobody has read. Prints "terminal NAME" and runs until it is killed, or to the
 * first thing that the data sheet forbids. Times are simulated; it runs as fast as it can.
 *
 * [A] ADXL345 data sheet, Rev. E, Analog Devices. [M] ATmega328P data sheet, Microchip.
 */
#define _GNU_SOURCE
#include <fcntl.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

#include <simavr/avr_ioport.h>
#include <simavr/avr_spi.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>

static avr_t *avr;
static int terminal;

static void stop(const char *what)
{
	fprintf(stderr, "bench: %s\n", what);
	exit(1);
}

/* The sensor. */
static struct {
	double frequency, amplitude, rate;
	int dead, deaf;
	uint8_t reg[64];
	int selected, bytes; /* CS is low; bytes since */
	uint8_t address;     /* the first byte, then counting */
	avr_cycle_count_t first; /* sample */
	int64_t taken;           /* samples */
	avr_irq_t *miso, *int1;
} chip;

/* DATA_READY goes up with a sample and down when it is read, [A] "Interrupts" (from memory). */
static void ready(int up)
{
	chip.reg[0x30] = up ? 0x83 : 0x02;
	if ((chip.reg[0x2E] & 0x80) && !(chip.reg[0x2F] & 0x80) && !chip.deaf)
		avr_raise_irq(chip.int1, up);
}

static void put_axis(int at, double g)
{
	int16_t count = (int16_t)lround(256 * g); /* full resolution, [A] Table 1 */
	chip.reg[at] = (uint8_t)count;
	chip.reg[at + 1] = (uint8_t)(count >> 8);
}

static avr_cycle_count_t take(avr_t *a, avr_cycle_count_t when, void *unused)
{
	(void)unused;
	double t = (double)when / a->frequency;
	if (chip.taken++ == 0)
		chip.first = when;
	put_axis(0x32, chip.amplitude * sin(2 * M_PI * chip.frequency * t));
	put_axis(0x34, 0);
	put_axis(0x36, 1);
	ready(1); /* no edge if the one before has not been read */
	return chip.first + (avr_cycle_count_t)llround(chip.taken * (a->frequency / chip.rate));
}

static void written(uint8_t address, uint8_t value)
{
	if (address < 0x1D || (address >= 0x32 && address <= 0x37) || address > 0x38)
		stop("a register that cannot be written is written");
	chip.reg[address] = value;
	if (address != 0x2D)
		return;
	avr_cycle_timer_cancel(avr, take, NULL);
	chip.taken = 0;
	if (!(value & 0x08))
		return; /* standby */
	if (chip.reg[0x2C] != 0x0D)
		stop("the sensor is not set to 800 samples a second");
	if (chip.reg[0x31] != 0x0B)
		stop("the sensor is not set to full resolution, 16 g, 4 wires, INT1 active high");
	/* Wakes up in 1.1 ms and one sample, [A] notes of Table 1 (from memory). */
	avr_cycle_timer_register_usec(avr, (uint32_t)(1100 + 1e6 / chip.rate), take, NULL);
}

/* A byte from the master; what it gets back is on its way at the same time. */
static void byte_came(struct avr_irq_t *irq, uint32_t value, void *unused)
{
	(void)irq, (void)unused;
	uint8_t answer = 0xFF;
	if (chip.selected && !chip.dead) {
		uint8_t spcr = avr->data[0x4C]; /* [M] SPCR: CPOL, CPHA; [A] p. 15 wants both */
		if ((spcr & 0x0C) != 0x0C)
			stop("the SPI is not in mode 3");
		if (avr->frequency / 4 > 5000000 && !(spcr & 0x03))
			stop("the SPI is faster than 5 MHz");
		answer = 0;
		if (chip.bytes++ == 0) {
			chip.address = (uint8_t)value;
		} else {
			uint8_t at = chip.address & 0x3F;
			if (chip.address & 0x80)
				answer = chip.reg[at];
			else
				written(at, (uint8_t)value);
			if ((chip.address & 0x80) && at >= 0x32 && at <= 0x37)
				ready(0);
			if (chip.address & 0x40)
				chip.address = (chip.address & 0xC0) | ((at + 1) & 0x3F);
			else
				chip.bytes = 100; /* more than one needs the bit */
		}
	}
	avr_raise_irq(chip.miso, answer);
}

static void select_changed(struct avr_irq_t *irq, uint32_t value, void *unused)
{
	(void)irq, (void)unused;
	chip.selected = !value;
	chip.bytes = 0;
}

/* Bits a second that the firmware has set: [M] UBRR0 and U2X0. */
static double firmware_baud(void)
{
	int ubrr = avr->data[0xC4] | avr->data[0xC5] << 8;
	return avr->frequency / ((avr->data[0xC0] & 2 ? 8.0 : 16.0) * (ubrr + 1));
}

/* A reader at another rate than the line's gets garbage, as on a real one. */
static void text_came(struct avr_irq_t *irq, uint32_t value, void *unused)
{
	(void)irq, (void)unused;
	struct termios mode;
	char c = (char)value;
	if (tcgetattr(terminal, &mode) == 0) {
		double heard = cfgetospeed(&mode) == B500000 ? 500000 : 115200;
		if (fabs(firmware_baud() / heard - 1) > 0.02)
			c = (char)(value * 167 + 91);
	}
	if (write(terminal, &c, 1) != 1)
		stop("the terminal is gone");
}

static void no_sleep(avr_t *a, avr_cycle_count_t cycles)
{
	(void)a, (void)cycles; /* as fast as it can */
}

static void open_terminal(void)
{
	struct termios mode;
	terminal = posix_openpt(O_RDWR | O_NOCTTY);
	if (terminal < 0 || grantpt(terminal) || unlockpt(terminal))
		stop("no pseudo-terminal");
	/* The other end stays open, so that it does not matter when readers come and go. */
	int reader = open(ptsname(terminal), O_RDWR | O_NOCTTY);
	if (reader < 0 || tcgetattr(reader, &mode))
		stop("the pseudo-terminal cannot be opened");
	cfmakeraw(&mode);
	tcsetattr(reader, TCSANOW, &mode);
	printf("terminal %s\n", ptsname(terminal)); /* simavr prints lines of its own */
	fflush(stdout);
}

int main(int argc, char **argv)
{
	elf_firmware_t firmware = {0};
	uint32_t flags = 0;
	if (argc < 6 || elf_read_firmware(argv[1], &firmware))
		stop("use: bench FIRMWARE.elf HZ FREQUENCY AMPLITUDE RATE [dead | deaf | warm]");
	avr = avr_make_mcu_by_name("atmega328p");
	if (!avr)
		stop("this simavr has no atmega328p");
	avr_init(avr);
	firmware.frequency = (uint32_t)atol(argv[2]);
	avr_load_firmware(avr, &firmware);
	avr->sleep = no_sleep;

	chip.frequency = atof(argv[3]);
	chip.amplitude = atof(argv[4]);
	chip.rate = atof(argv[5]);
	chip.dead = argc > 6 && !strcmp(argv[6], "dead");
	chip.deaf = chip.dead || (argc > 6 && !strcmp(argv[6], "deaf"));
	chip.reg[0x00] = 0xE5;
	chip.reg[0x2C] = 0x0A;
	chip.miso = avr_io_getirq(avr, AVR_IOCTL_SPI_GETIRQ(0), SPI_IRQ_INPUT);
	chip.int1 = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), 0);
	avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_SPI_GETIRQ(0), SPI_IRQ_OUTPUT), byte_came, NULL);
	avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), 2), select_changed, NULL);

	if (argc > 6 && !strcmp(argv[6], "warm")) {
		chip.reg[0x2E] = 0x80;
		ready(1);
	}

	avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
	flags &= ~AVR_UART_FLAG_STDIO;
	avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
	open_terminal();
	avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), text_came, NULL);

	for (;;) {
		int state = avr_run(avr);
		if (state == cpu_Done || state == cpu_Crashed)
			stop("the firmware crashed");
	}
}
