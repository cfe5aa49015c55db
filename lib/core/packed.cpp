#include "core/packed.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <memory>
#include <system_error>

#include <archive.h>
#include <archive_entry.h>
#include <fmt/format.h>

#include "core/descriptor.h"
#include "core/dynamic_library.h"

namespace platter {
namespace {

// The functions of libarchive that are used, found at run time. The types come from its header, so
// a signature that changes does not compile.
struct Library {
#define PLATTER_ARCHIVE_FUNCTIONS(X)      \
  X(archive_read_new)                     \
  X(archive_read_free)                    \
  X(archive_read_support_filter_compress) \
  X(archive_read_support_filter_gzip)     \
  X(archive_read_support_filter_bzip2)    \
  X(archive_read_support_filter_xz)       \
  X(archive_read_support_filter_zstd)     \
  X(archive_read_support_format_raw)      \
  X(archive_read_support_format_tar)      \
  X(archive_read_support_format_cpio)     \
  X(archive_read_support_format_zip)      \
  X(archive_read_support_format_7zip)     \
  X(archive_read_set_seek_callback)       \
  X(archive_read_set_read_callback)       \
  X(archive_read_set_callback_data)       \
  X(archive_read_open1)                   \
  X(archive_read_next_header)             \
  X(archive_read_data_block)              \
  X(archive_filter_count)                 \
  X(archive_filter_name)                  \
  X(archive_format)                       \
  X(archive_error_string)                 \
  X(archive_entry_pathname)               \
  X(archive_entry_filetype)
#define PLATTER_DECLARE(name) decltype(&::name) name = nullptr;
  PLATTER_ARCHIVE_FUNCTIONS(PLATTER_DECLARE)
#undef PLATTER_DECLARE

  Library() {
    const DynamicLibrary archive("libarchive.so.13");
#define PLATTER_FIND(name) archive.find(#name, name);
    PLATTER_ARCHIVE_FUNCTIONS(PLATTER_FIND)
#undef PLATTER_FIND
#undef PLATTER_ARCHIVE_FUNCTIONS
  }
};

const Library& library() {
  static const Library loaded;
  return loaded;
}

struct Feed {
  const ByteSource& source;
  std::uint64_t position = 0;
  std::vector<std::byte> buffer = std::vector<std::byte>(std::size_t{256} * 1024);
};

la_ssize_t feed_read(archive*, void* data, const void** out) {
  auto& feed = *static_cast<Feed*>(data);
  try {
    const std::size_t got = feed.source.read(feed.position, feed.buffer);
    feed.position += got;
    *out = feed.buffer.data();
    return static_cast<la_ssize_t>(got);
  } catch (const IoError&) {
    return -1;
  }
}

la_int64_t feed_seek(archive*, void* data, la_int64_t offset, int whence) {
  auto& feed = *static_cast<Feed*>(data);
  const auto size = static_cast<la_int64_t>(feed.source.size());
  la_int64_t base = 0;
  if (whence == SEEK_CUR) base = static_cast<la_int64_t>(feed.position);
  if (whence == SEEK_END) base = size;
  const la_int64_t target = base + std::clamp(offset, -base, size - base);  // offsets can be absurd
  feed.position = static_cast<std::uint64_t>(target);
  return target;
}

enum class Content : std::uint8_t { archive_or_stream, stream };

// One pass over a container. Formats are limited to archives: libarchive would otherwise take an
// ISO image itself for an archive. Filters are limited to those that container_kind() tells: of the
// others some start programs of this machine, and what announces them is hardly a proof.
class Reader {
 public:
  Reader(const ByteSource& source, std::string path, Content content = Content::archive_or_stream)
      : feed_{.source = source}, path_(std::move(path)), handle_(library().archive_read_new()) {
    const Library& lib = library();
    archive* handle = handle_.get();
    if (handle == nullptr) throw IoError(path_, 0, 0, "no memory for unpacking");
    lib.archive_read_support_filter_compress(handle);
    lib.archive_read_support_filter_gzip(handle);
    lib.archive_read_support_filter_bzip2(handle);
    lib.archive_read_support_filter_xz(handle);
    lib.archive_read_support_filter_zstd(handle);
    if (content == Content::archive_or_stream) {
      lib.archive_read_support_format_tar(handle);
      lib.archive_read_support_format_cpio(handle);
      lib.archive_read_support_format_zip(handle);
      lib.archive_read_support_format_7zip(handle);
    }
    lib.archive_read_support_format_raw(handle);
    lib.archive_read_set_read_callback(handle, feed_read);
    lib.archive_read_set_seek_callback(handle, feed_seek);
    lib.archive_read_set_callback_data(handle, &feed_);
    if (lib.archive_read_open1(handle) != ARCHIVE_OK) fail();
  }
  Reader(const Reader&) = delete;  // the handle knows where feed_ is
  Reader(Reader&&) = delete;
  Reader& operator=(const Reader&) = delete;
  Reader& operator=(Reader&&) = delete;
  ~Reader() = default;

  /// Moves to the next regular file; false at the end.
  bool next() {
    archive_entry* entry = nullptr;
    while (true) {
      const int status = library().archive_read_next_header(handle_.get(), &entry);
      if (status == ARCHIVE_EOF) return false;
      if (status < ARCHIVE_WARN) fail();
      const bool raw = library().archive_format(handle_.get()) == ARCHIVE_FORMAT_RAW;
      if (!raw && library().archive_entry_filetype(entry) != AE_IFREG) continue;
      const char* name = raw ? "" : library().archive_entry_pathname(entry);
      name_ = name == nullptr ? "" : name;
      return true;
    }
  }
  [[nodiscard]] const std::string& name() const noexcept { return name_; }
  [[nodiscard]] bool is_raw() const {
    return library().archive_format(handle_.get()) == ARCHIVE_FORMAT_RAW;
  }

  // An image that begins with zeros looks like the end of a tar archive.
  [[nodiscard]] bool is_compressed_tar() const {
    return library().archive_filter_count(handle_.get()) > 1 &&
           (library().archive_format(handle_.get()) & ARCHIVE_FORMAT_BASE_MASK) ==
               ARCHIVE_FORMAT_TAR;
  }

  [[nodiscard]] std::vector<std::string> container() const {
    std::vector<std::string> names;
    const int filters = library().archive_filter_count(handle_.get());
    for (int i = filters - 1; i >= 0; --i) {
      const std::string_view name = library().archive_filter_name(handle_.get(), i);
      if (name != "none") names.emplace_back(name == "compress (.Z)" ? "compress" : name);
    }
    switch (library().archive_format(handle_.get()) & ARCHIVE_FORMAT_BASE_MASK) {
      case ARCHIVE_FORMAT_ZIP:
        names.emplace_back("zip");
        break;
      case ARCHIVE_FORMAT_7ZIP:
        names.emplace_back("7z");
        break;
      case ARCHIVE_FORMAT_TAR:
        names.emplace_back("tar");
        break;
      case ARCHIVE_FORMAT_CPIO:
        names.emplace_back("cpio");
        break;
      default:
        break;
    }
    return names;
  }

  /// Stores the current file's content. Runs of zeros are left as holes.
  [[nodiscard]] std::shared_ptr<const ByteSource> spool(std::uint64_t limit) {
    Descriptor file = unnamed_temporary_file();
    std::uint64_t end = 0;
    while (true) {
      const void* data = nullptr;
      std::size_t size = 0;
      la_int64_t offset = 0;
      const int status = library().archive_read_data_block(handle_.get(), &data, &size, &offset);
      if (status == ARCHIVE_EOF) break;
      if (status < ARCHIVE_WARN) fail();
      const auto at = static_cast<std::uint64_t>(offset);
      if (at > limit || size > limit - at) {
        throw IoError(path_, feed_.position, 0,
                      fmt::format("unpacks to more than {} bytes; raise --spool-limit if there is "
                                  "room for it in the directory for temporary files",
                                  limit));
      }
      write_skipping_zeros(file.get(), static_cast<const char*>(data), size, at);
      end = std::max(end, at + size);
    }
    if (ftruncate(file.get(), static_cast<off_t>(end)) != 0) fail_writing();
    return map_descriptor(file.release(), path_);
  }

 private:
  static constexpr std::size_t kHole = 4096;

  struct Free {
    void operator()(archive* handle) const { library().archive_read_free(handle); }
  };

  void write_skipping_zeros(int file, const char* data, std::size_t size, std::uint64_t at) const {
    static constexpr std::array<char, kHole> kZeros{};
    for (std::size_t done = 0; done < size;) {
      const std::size_t piece = std::min(size - done, kHole);
      if (std::memcmp(data + done, kZeros.data(), piece) == 0) {
        done += piece;
        continue;
      }
      std::size_t run = piece;
      while (done + run < size) {
        const std::size_t next = std::min(size - done - run, kHole);
        if (std::memcmp(data + done + run, kZeros.data(), next) == 0) break;
        run += next;
      }
      write_all(file, data + done, run, at + done);
      done += run;
    }
  }

  void write_all(int file, const char* data, std::size_t size, std::uint64_t at) const {
    while (size > 0) {
      const ssize_t wrote = pwrite(file, data, size, static_cast<off_t>(at));
      if (wrote < 0) {
        if (errno == EINTR) continue;
        fail_writing();
      }
      data += wrote;
      at += static_cast<std::uint64_t>(wrote);
      size -= static_cast<std::size_t>(wrote);
    }
  }

  [[noreturn]] void fail() const {
    const char* words = library().archive_error_string(handle_.get());
    throw IoError(
        path_, feed_.position, 0,
        fmt::format("the container is damaged: {}", words == nullptr ? "no detail" : words));
  }
  [[noreturn]] void fail_writing() const {
    throw IoError(path_, feed_.position, 0,
                  fmt::format("no room to unpack it: {}", std::generic_category().message(errno)));
  }

  Feed feed_;
  std::string path_;
  // Its own owner: opening fails in the constructor.
  std::unique_ptr<archive, Free> handle_;
  std::string name_;
};

constexpr std::size_t kListedMembers = 1000;

}  // namespace

std::string_view container_kind(std::span<const std::byte> first_bytes) noexcept {
  const std::string_view head(reinterpret_cast<const char*>(first_bytes.data()),
                              first_bytes.size());
  using std::string_view_literals::operator""sv;
  if (head.starts_with("\x1F\x8B\x08"sv)) return "gzip";
  if (head.starts_with("BZh"sv) && head.size() > 9 && head.substr(4, 6) == "1AY&SY"sv)
    return "bzip2";
  if (head.starts_with("\xFD"
                       "7zXZ\0"sv)) {
    return "xz";
  }
  if (head.starts_with("\x28\xB5\x2F\xFD"sv)) return "zstd";
  if (head.starts_with("\x1F\x9D"sv)) return "compress";
  if (head.starts_with("PK\x03\x04"sv)) return "zip";
  if (head.starts_with("7z\xBC\xAF\x27\x1C"sv)) return "7z";
  if (head.size() >= 262 && head.substr(257, 5) == "ustar"sv) return "tar";
  if (head.starts_with("070701"sv) || head.starts_with("070702"sv) ||
      head.starts_with("070707"sv)) {
    return "cpio";
  }
  return {};
}

Unpacked unpack(const ByteSource& packed, const std::string& path,
                const std::optional<std::string>& member, std::uint64_t limit) {
  Unpacked result;
  bool stream = false;
  {
    Reader names(packed, path);
    while (names.next()) {
      if (result.container.empty()) result.container = names.container();
      if (names.is_raw()) {
        if (member) throw IoError(path, 0, 0, "is no archive, so it has no member to name");
        result.source = names.spool(limit);
        return result;
      }
      if (result.members.size() < kListedMembers) result.members.push_back(names.name());
      if (member && names.name() == *member) {
        result.source = names.spool(limit);
        result.member = *member;
        result.members.clear();
        return result;
      }
    }
    stream = result.container.empty() && names.is_compressed_tar();
  }
  if (stream && !member) {
    Reader only(packed, path, Content::stream);
    if (!only.next()) return result;
    result.container = only.container();
    result.source = only.spool(limit);
    return result;
  }
  if (member) throw IoError(path, 0, 0, fmt::format("has no member named {}", *member));
  if (result.members.size() != 1) return result;
  // The one file is only known to be the only one at the end: a second pass fetches it.
  Reader only(packed, path);
  if (only.next()) {
    result.member = only.name();
    result.source = only.spool(limit);
    result.members.clear();
  }
  return result;
}

}  // namespace platter
