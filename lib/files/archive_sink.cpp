// Files written into an archive, through libarchive.
#include <algorithm>
#include <clocale>
#include <cstdint>
#include <limits>
#include <stdexcept>
#include <string>
#include <unordered_map>
#include <vector>

#include <archive.h>
#include <archive_entry.h>
#include <fmt/format.h>

#include "core/dynamic_library.h"
#include "core/numbers.h"
#include "core/output_file.h"
#include "files/sink.h"

namespace platter {
namespace {

// The functions of libarchive that are used, found at run time.
struct Library {
#define PLATTER_ARCHIVE_FUNCTIONS(X)         \
  X(archive_write_new)                       \
  X(archive_write_free)                      \
  X(archive_write_set_format_pax_restricted) \
  X(archive_write_set_format_cpio_newc)      \
  X(archive_write_set_format_zip)            \
  X(archive_write_add_filter_bzip2)          \
  X(archive_write_add_filter_gzip)           \
  X(archive_write_add_filter_none)           \
  X(archive_write_add_filter_xz)             \
  X(archive_write_add_filter_zstd)           \
  X(archive_write_set_bytes_in_last_block)   \
  X(archive_write_open)                      \
  X(archive_write_header)                    \
  X(archive_write_data)                      \
  X(archive_write_finish_entry)              \
  X(archive_write_close)                     \
  X(archive_error_string)                    \
  X(archive_entry_new)                       \
  X(archive_entry_free)                      \
  X(archive_entry_clear)                     \
  X(archive_entry_set_pathname)              \
  X(archive_entry_set_symlink)               \
  X(archive_entry_set_hardlink)              \
  X(archive_entry_set_filetype)              \
  X(archive_entry_set_perm)                  \
  X(archive_entry_set_size)                  \
  X(archive_entry_set_mtime)                 \
  X(archive_entry_set_uid)                   \
  X(archive_entry_set_gid)                   \
  X(archive_entry_set_nlink)                 \
  X(archive_entry_set_ino64)                 \
  X(archive_entry_set_dev)                   \
  X(archive_entry_set_rdevmajor)             \
  X(archive_entry_set_rdevminor)             \
  X(archive_entry_sparse_add_entry)
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

enum class Kind : std::uint8_t { tar, cpio, zip };
using AddFilter = decltype(&::archive_write_add_filter_none) Library::*;

struct Ending {
  std::string_view text;
  Kind kind;
  AddFilter filter;
};
constexpr Ending kEndings[] = {
    {".tar", Kind::tar, &Library::archive_write_add_filter_none},
    {".tar.gz", Kind::tar, &Library::archive_write_add_filter_gzip},
    {".tgz", Kind::tar, &Library::archive_write_add_filter_gzip},
    {".tar.bz2", Kind::tar, &Library::archive_write_add_filter_bzip2},
    {".tar.xz", Kind::tar, &Library::archive_write_add_filter_xz},
    {".tar.zst", Kind::tar, &Library::archive_write_add_filter_zstd},
    {".zip", Kind::zip, &Library::archive_write_add_filter_none},
    {".cpio", Kind::cpio, &Library::archive_write_add_filter_none},
};

const Ending& ending_of(const std::string& path) {
  const auto* found = std::ranges::find_if(
      kEndings, [&](const Ending& ending) { return path.ends_with(ending.text); });
  if (found != std::end(kEndings)) return *found;
  std::string known;
  for (const Ending& ending : kEndings)
    known += fmt::format(" {}", ending.text);
  throw std::invalid_argument(
      fmt::format("'{}': the ending tells the kind of archive; there are{}", path, known));
}

unsigned file_type_of(NodeType type) noexcept {
  switch (type) {
    case NodeType::directory:
      return AE_IFDIR;
    case NodeType::symlink:
      return AE_IFLNK;
    case NodeType::char_device:
      return AE_IFCHR;
    case NodeType::block_device:
      return AE_IFBLK;
    case NodeType::fifo:
      return AE_IFIFO;
    case NodeType::socket:
      return AE_IFSOCK;
    default:
      return AE_IFREG;
  }
}

// libarchive writes names by the character set of the locale: UTF-8 here, for this thread, as long
// as one lives.
class Utf8Locale {
 public:
  Utf8Locale() : locale_(newlocale(LC_CTYPE_MASK, "C.UTF-8", nullptr)) {
    if (locale_ != nullptr) before_ = uselocale(locale_);
  }
  Utf8Locale(const Utf8Locale&) = delete;
  Utf8Locale& operator=(const Utf8Locale&) = delete;
  ~Utf8Locale() {
    if (locale_ == nullptr) return;
    uselocale(before_);
    freelocale(locale_);
  }

 private:
  locale_t locale_;
  locale_t before_ = nullptr;
};

class ArchiveSink final : public FileSink {
 public:
  ArchiveSink(const std::string& path, const std::string& image, const SinkOptions& options)
      : ending_(ending_of(path)),
        options_(options),
        file_(path, options.replace, image),
        handle_(library().archive_write_new()),
        entry_(library().archive_entry_new()) {
    const Library& lib = library();
    if (handle_ == nullptr || entry_ == nullptr)
      throw IoError(path, 0, 0, "no memory for an archive");
    switch (ending_.kind) {
      case Kind::tar:
        check(lib.archive_write_set_format_pax_restricted(handle_));
        break;
      case Kind::cpio:
        check(lib.archive_write_set_format_cpio_newc(handle_));
        break;
      case Kind::zip:
        check(lib.archive_write_set_format_zip(handle_));
        break;
    }
    check((lib.*ending_.filter)(handle_));
    check(lib.archive_write_set_bytes_in_last_block(handle_, 1));
    check(lib.archive_write_open(handle_, this, nullptr, write_block, nullptr));
  }
  ArchiveSink(const ArchiveSink&) = delete;
  ArchiveSink& operator=(const ArchiveSink&) = delete;
  ~ArchiveSink() override {
    library().archive_entry_free(entry_);
    library().archive_write_free(handle_);
  }

  void begin_volume(const std::string& directory) override {
    prefix_ = directory.empty() ? std::string() : directory + "/";
    first_names_.clear();
    ++device_;
  }

  // Programs that unpack give a directory its mode and time as soon as a file follows that does not
  // lie in it.
  [[nodiscard]] WalkOrder order() const override { return WalkOrder::files_first; }

  void add(const FileVisit& file, Volume& volume, const View& view,
           std::vector<Finding>& findings) override {
    const NodeType type = file.attributes.type;
    if (type == NodeType::unknown) {
      leave_out(file, "it is of no kind that could be stored", Severity::caution, findings);
    } else if (!holds(type)) {
      ++taken_.left_out;
      not_held_.add(file.path);
    } else if (type == NodeType::file) {
      add_file(file, volume, view, findings);
    } else {
      describe(file);
      if (type == NodeType::symlink) {
        library().archive_entry_set_symlink(entry_, volume.link_target(file.entry.node).c_str());
      }
      if (write_header(file, findings)) count(type);
    }
    proceed();
  }

  void finish(std::vector<Finding>& findings) override {
    not_held_.tell("this kind of archive cannot hold them", findings);
    if (shifted_times_ != 0) {
      findings.push_back(
          {Severity::caution,
           FindingCode::time_not_kept,
           {},
           0,
           0,
           fmt::format("{} {} before 1970 or after {}, which this kind of archive "
                       "cannot hold; the nearest is stored",
                       shifted_times_, shifted_times_ == 1 ? "file has a time" : "files have times",
                       ending_.kind == Kind::cpio ? 2106 : 2038)});
    }
    check(library().archive_write_close(handle_));
    file_.finish(written_);
  }

 private:
  static la_ssize_t write_block(archive*, void* self, const void* data, std::size_t size) {
    auto& sink = *static_cast<ArchiveSink*>(self);
    try {
      sink.file_.write(sink.written_, {static_cast<const std::byte*>(data), size});
    } catch (...) {
      sink.failure_ = std::current_exception();  // not through the frames of libarchive
      return -1;
    }
    sink.written_ += size;
    return static_cast<la_ssize_t>(size);
  }

  // A warning is no failure: a name that is no text is stored as its bytes.
  void check(la_ssize_t status) const {
    if (status >= ARCHIVE_WARN) return;
    if (failure_) std::rethrow_exception(failure_);
    const char* reason = library().archive_error_string(handle_);
    throw IoError(file_.path(), written_, 0, reason == nullptr ? "libarchive failed" : reason);
  }

  void proceed() {
    if (options_.on_progress && !options_.on_progress(taken_)) throw Interrupted();
  }

  void count(NodeType type) {
    if (type == NodeType::directory) {
      ++taken_.directories;
    } else if (type == NodeType::symlink) {
      ++taken_.links;
    } else {
      ++taken_.others;
    }
  }

  [[nodiscard]] bool holds(NodeType type) const {
    switch (type) {
      case NodeType::socket:
        return ending_.kind == Kind::cpio;
      case NodeType::char_device:
      case NodeType::block_device:
      case NodeType::fifo:
        return ending_.kind != Kind::zip;
      default:
        return true;
    }
  }

  void leave_out(const FileVisit& file, const std::string& reason, Severity severity,
                 std::vector<Finding>& findings) {
    ++taken_.left_out;
    findings.push_back({severity,
                        FindingCode::file_left_out,
                        {},
                        file.entry.place,
                        0,
                        fmt::format("{}: left out: {}", printable(file.path), reason)});
  }

  [[nodiscard]] std::string path_of(const FileVisit& file) const {
    // Names in a zip archive are UTF-8 (APPNOTE 4.4.4, bit 11).
    if (file.exact || ending_.kind == Kind::zip) return prefix_ + std::string(file.path);
    const std::string directory = host_directory(file);
    return prefix_ + (directory.empty() ? "" : directory + "/") + host_name(file);
  }

  // Everything but the content.
  void describe(const FileVisit& file) {
    const Library& lib = library();
    const Attributes& attributes = file.attributes;
    const bool directory = attributes.type == NodeType::directory;
    lib.archive_entry_clear(entry_);
    lib.archive_entry_set_pathname(entry_, path_of(file).c_str());
    lib.archive_entry_set_filetype(entry_, file_type_of(attributes.type));
    lib.archive_entry_set_perm(
        entry_, static_cast<__LA_MODE_T>(attributes.mode.value_or(directory ? 0755 : 0644)));
    lib.archive_entry_set_uid(entry_, attributes.uid.value_or(0));
    lib.archive_entry_set_gid(entry_, attributes.gid.value_or(0));
    lib.archive_entry_set_nlink(entry_, attributes.links.value_or(1));
    lib.archive_entry_set_dev(entry_, device_);
    lib.archive_entry_set_ino64(entry_, static_cast<la_int64_t>(attributes.identity));
    if (attributes.modified) {
      const std::int64_t seconds = storable(attributes.modified->seconds);
      lib.archive_entry_set_mtime(entry_, static_cast<time_t>(seconds),
                                  static_cast<long>(attributes.modified_nanoseconds));
    }
    if (attributes.device) {
      lib.archive_entry_set_rdevmajor(entry_, static_cast<dev_t>(attributes.device->major));
      lib.archive_entry_set_rdevminor(entry_, static_cast<dev_t>(attributes.device->minor));
    }
    lib.archive_entry_set_size(entry_, 0);
  }

  // The time has 32 bits in cpio's header "newc" (eight hexadecimal digits, no sign), and 32 bits
  // in zip's extra field of times, which readers take with or without a sign.
  [[nodiscard]] std::int64_t latest_time() const {
    return ending_.kind == Kind::cpio ? std::numeric_limits<std::uint32_t>::max()
                                      : std::numeric_limits<std::int32_t>::max();
  }
  std::int64_t storable(std::int64_t seconds) {
    if (ending_.kind == Kind::tar) return seconds;
    const std::int64_t nearest = std::clamp<std::int64_t>(seconds, 0, latest_time());
    shifted_times_ += nearest == seconds ? 0 : 1;
    return nearest;
  }

  // False when this kind of archive cannot hold such a file.
  bool write_header(const FileVisit& file, std::vector<Finding>& findings) {
    const int status = library().archive_write_header(handle_, entry_);
    if (status == ARCHIVE_FAILED) {
      const char* reason = library().archive_error_string(handle_);
      leave_out(file, reason == nullptr ? "the archive cannot hold it" : reason, Severity::fault,
                findings);
      return false;
    }
    check(status);
    return true;
  }

  // In a tar archive a further name refers to the first one; a cpio archive has the content with
  // each name and tells by the inode number; a zip archive knows no further names.
  bool add_as_link(const FileVisit& file, std::vector<Finding>& findings) {
    const Attributes& attributes = file.attributes;
    if (ending_.kind != Kind::tar || attributes.identity == 0 || attributes.links.value_or(1) < 2) {
      return false;
    }
    const auto [first, is_new] = first_names_.emplace(attributes.identity, path_of(file));
    if (is_new) return false;
    describe(file);
    library().archive_entry_set_hardlink(entry_, first->second.c_str());
    if (write_header(file, findings)) ++taken_.links;
    return true;
  }

  void add_file(const FileVisit& file, Volume& volume, const View& view,
                std::vector<Finding>& findings) {
    if (add_as_link(file, findings)) return;
    std::vector<Extent> extents;
    std::vector<Extent> missing;
    each_present_extent(volume, view, file.entry.node, [&](const Extent& extent) {
      if (extent.absent) {
        missing.push_back(extent);
      } else {
        extents.push_back(extent);
      }
      return true;
    });
    if (!missing.empty()) {
      findings.push_back(
          missing_finding(file.path, file.attributes.bytes, missing, options_.strict));
    }
    if (!missing.empty() && options_.strict) {
      ++taken_.left_out;
      return;
    }
    const std::uint64_t end = extents.empty() ? 0 : extents.back().offset + extents.back().bytes;
    // Holes cost time here, and a size is only a claim.
    constexpr std::uint64_t kMostZeros = std::uint64_t{16} << 30U;
    if (file.attributes.bytes > saturating_add(end, kMostZeros)) {
      leave_out(file, fmt::format("it claims {} bytes and has {}", file.attributes.bytes, end),
                Severity::fault, findings);
      return;
    }
    describe(file);
    library().archive_entry_set_size(entry_, static_cast<la_int64_t>(file.attributes.bytes));
    declare_holes(extents, file.attributes.bytes);
    if (!write_header(file, findings)) return;
    std::uint64_t done = 0;
    for (const Extent& extent : extents) {
      write_zeros(extent.offset - done);
      write_extent(file, view, extent, findings);
      done = extent.offset + extent.bytes;
    }
    write_zeros(file.attributes.bytes - std::min(done, file.attributes.bytes));
    check(library().archive_write_finish_entry(handle_));
    ++taken_.files;
  }

  void declare_holes(const std::vector<Extent>& extents, std::uint64_t bytes) {
    if (ending_.kind != Kind::tar) return;
    std::uint64_t mapped = 0;
    for (const Extent& extent : extents)
      mapped += extent.bytes;
    if (mapped >= bytes) return;
    std::uint64_t start = 0;
    std::uint64_t end = 0;
    for (const Extent& extent : extents) {
      if (extent.offset != end) {
        add_sparse(start, end);
        start = extent.offset;
      }
      end = extent.offset + extent.bytes;
    }
    add_sparse(start, end);
    if (end < bytes)
      library().archive_entry_sparse_add_entry(entry_, static_cast<la_int64_t>(bytes), 0);
  }

  void add_sparse(std::uint64_t start, std::uint64_t end) {
    if (end == start) return;
    library().archive_entry_sparse_add_entry(entry_, static_cast<la_int64_t>(start),
                                             static_cast<la_int64_t>(end - start));
  }

  void write_extent(const FileVisit& file, const View& view, const Extent& extent,
                    std::vector<Finding>& findings) {
    buffer_.resize(1024 * 1024);
    for (std::uint64_t done = 0; done < extent.bytes;) {
      const auto count =
          static_cast<std::size_t>(std::min<std::uint64_t>(buffer_.size(), extent.bytes - done));
      const std::span<std::byte> piece = std::span(buffer_).first(count);
      try {
        view.read(extent.start - view.start() + done, piece);
      } catch (const IoError&) {
        // The header with the size is written already: zeros, and a finding that says where.
        std::ranges::fill(piece, std::byte{0});
        findings.push_back(
            missing_finding(file.path, file.attributes.bytes,
                            {{extent.offset + done, extent.start + done, count, true}}, false));
      }
      check(library().archive_write_data(handle_, piece.data(), piece.size()));
      done += count;
      taken_.bytes += count;
      proceed();
    }
  }

  void write_zeros(std::uint64_t bytes) {
    static const std::vector<std::byte> zeros(64 * 1024);
    while (bytes != 0) {
      const auto count = static_cast<std::size_t>(std::min<std::uint64_t>(zeros.size(), bytes));
      check(library().archive_write_data(handle_, zeros.data(), count));
      bytes -= count;
    }
  }

  Utf8Locale locale_;
  const Ending& ending_;
  SinkOptions options_;
  OutputFile file_;
  archive* handle_;
  archive_entry* entry_;
  std::uint64_t written_ = 0;
  std::exception_ptr failure_;
  std::string prefix_;
  dev_t device_ = 0;  // volumes are told apart by it
  std::uint64_t shifted_times_ = 0;
  LeftOutKinds not_held_;
  std::unordered_map<std::uint64_t, std::string> first_names_;
  std::vector<std::byte> buffer_;
};

}  // namespace

std::unique_ptr<FileSink> archive_sink(const std::string& path, const std::string& image,
                                       const SinkOptions& options) {
  return std::make_unique<ArchiveSink>(path, image, options);
}

}  // namespace platter
