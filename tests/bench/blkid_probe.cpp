// A full libblkid probe of one image: superblocks and partitions. The yardstick of inspect_bench.
#include <cstdio>

#include <blkid/blkid.h>

int main(int count, char** arguments) {
  if (count != 2) return 2;
  blkid_probe probe = blkid_new_probe_from_filename(arguments[1]);
  if (probe == nullptr) return 3;
  blkid_probe_enable_superblocks(probe, 1);
  blkid_probe_set_superblocks_flags(
      probe, BLKID_SUBLKS_DEFAULT | BLKID_SUBLKS_USAGE | BLKID_SUBLKS_VERSION | BLKID_SUBLKS_MAGIC);
  blkid_probe_enable_partitions(probe, 1);
  blkid_probe_set_partitions_flags(probe, BLKID_PARTS_ENTRY_DETAILS | BLKID_PARTS_MAGIC);
  blkid_do_fullprobe(probe);
  for (int i = 0; i < blkid_probe_numof_values(probe); ++i) {
    const char* name = nullptr;
    const char* value = nullptr;
    blkid_probe_get_value(probe, i, &name, &value, nullptr);
    std::printf("%s=%s\n", name, value);
  }
  blkid_free_probe(probe);
  return 0;
}
