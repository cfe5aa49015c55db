// FFS volumes of every dialect that the writer knows and an ISO 9660 volume with Rock Ridge, all
// with the same tree.
#include <array>

#include <fmt/format.h>
#include <openssl/evp.h>

#include "kernel/images.h"
#include "writers/ffs_writer.h"
#include "writers/iso9660_writer.h"

namespace platter::test {

using namespace fixtures;  // NOLINT(google-build-using-namespace): the writers

namespace {

std::string sha256_of(const std::string& text) {
  std::array<unsigned char, EVP_MAX_MD_SIZE> sum{};
  unsigned length = 0;
  EVP_Digest(text.data(), text.size(), sum.data(), &length, EVP_sha256(), nullptr);
  std::string digits;
  for (unsigned i = 0; i < length; ++i)
    digits += fmt::format("{:02x}", sum[i]);
  return digits;
}

std::string pattern(std::size_t bytes, unsigned seed) {
  std::string text(bytes, '\0');
  std::uint32_t state = seed * 2654435761U + 1;
  for (char& c : text) {
    state = state * 1664525U + 1013904223U;
    c = static_cast<char>(state >> 24U);
  }
  return text;
}

// A writer and the tree that it was given, filled side by side.
template <typename Writer, typename Options, typename Attributes>
class FilledVolume {
 public:
  explicit FilledVolume(const Options& options) : writer_(options) {}

  void file(const std::string& path, const std::string& content, const Attributes& attributes) {
    writer_.add_file(path, content, attributes);
    put(path, "file", attributes).bytes = content.size();
    tree_[path].sha256 = sha256_of(content);
  }
  void directory(const std::string& path, const Attributes& attributes) {
    writer_.add_directory(path, attributes);
    put(path, "directory", attributes).links.reset();
  }
  void link(const std::string& path, const std::string& target, const Attributes& attributes) {
    writer_.add_symlink(path, target, attributes);
    put(path, "symlink", attributes).target = target;
    tree_[path].bytes = target.size();
  }
  [[nodiscard]] std::vector<std::byte> build() { return writer_.build(); }
  [[nodiscard]] const Tree& tree() const noexcept { return tree_; }

 private:
  TreeFile& put(const std::string& path, const std::string& type, const Attributes& attributes) {
    TreeFile& file = tree_[path];
    file.type = type;
    file.mode = attributes.permissions;
    file.uid = attributes.uid;
    file.gid = attributes.gid;
    file.links = 1;
    file.modified = attributes.modified;
    return file;
  }

  Writer writer_;
  Tree tree_;
};

// Sizes around a fragment and a block, and beyond what twelve direct addresses reach.
template <typename Volume>
void fill(Volume& volume) {
  constexpr std::int64_t kDay = 86400;
  std::int64_t time = 9131 * kDay;  // 1995-01-01
  unsigned seed = 0;
  for (const std::size_t bytes :
       {0U, 1U, 1023U, 1024U, 1025U, 8191U, 8192U, 8193U, 98304U, 98305U, 300000U}) {
    volume.file(fmt::format("size-{}", bytes), pattern(bytes, ++seed),
                {.permissions = 0640, .uid = 100 + seed, .gid = 20, .modified = time += kDay});
  }
  volume.directory("usr", {.permissions = 0755, .uid = 2, .gid = 3, .modified = time});
  volume.directory("usr/bin", {.permissions = 02775, .uid = 2, .gid = 3, .modified = time});
  volume.file("usr/bin/tool", pattern(5000, 99),
              {.permissions = 04755, .uid = 0, .gid = 1, .modified = time});
  volume.file("usr/" + std::string(123, 'n'), "a long name\n", {.modified = time});
  volume.link("short", "usr/bin/tool", {.permissions = 0777, .modified = time});
  volume.link("long", std::string(40, 'x') + "/" + std::string(160, 'y'),
              {.permissions = 0777, .modified = time});
  volume.directory("many", {.permissions = 0700, .modified = time});
  for (int i = 0; i < 120; ++i) {
    volume.file(fmt::format("many/entry-{:03}", i), fmt::format("{}\n", i),
                {.uid = 5, .gid = 6, .modified = time});
  }
}

}  // namespace

// ufstype as Linux fs/ufs/super.c names the dialects.
std::vector<VolumeImage> volume_images() {
  std::vector<VolumeImage> images;
  const auto add = [&](const std::string& name, ByteOrder order, FfsStyle style,
                       const std::string& ufs_type) {
    FfsOptions options;
    options.order = order;
    options.style = style;
    FilledVolume<FfsWriter, FfsOptions, FfsAttributes> volume(options);
    fill(volume);
    images.push_back({name, "ufs", "ufstype=" + ufs_type, volume.build(), volume.tree()});
  };
  add("bsd42-big", ByteOrder::big, FfsStyle::bsd42, "old");
  add("bsd42-little", ByteOrder::little, FfsStyle::bsd42, "old");
  add("svr4-big", ByteOrder::big, FfsStyle::svr4, "sun");
  add("svr4-little", ByteOrder::little, FfsStyle::svr4, "sunx86");
  add("bsd44-big", ByteOrder::big, FfsStyle::bsd44, "44bsd");
  add("bsd44-little", ByteOrder::little, FfsStyle::bsd44, "44bsd");
  IsoOptions iso;
  iso.texts.volume_id = "CORVIDOS_KERNEL";
  FilledVolume<Iso9660Writer, IsoOptions, IsoAttributes> volume(iso);
  fill(volume);
  images.push_back({"rock-ridge", "iso9660", "nojoliet", volume.build(), volume.tree()});
  return images;
}

}  // namespace platter::test
